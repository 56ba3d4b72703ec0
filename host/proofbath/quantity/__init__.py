"""A measured value with its uncertainty: one model from the analysis to the published message."""
