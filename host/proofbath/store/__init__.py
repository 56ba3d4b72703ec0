"""The journal: every run's raw samples and events, durable and hash-chained."""
