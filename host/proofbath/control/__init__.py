"""Bath control: set-point ramp, feed-forward from a bath model, PI gains, boiling limits."""
