"""Opening curves from samples: features, lag, uncertainty, trust; pure calculation."""
