"""YAML files read into checked models, with line and column for whatever is wrong in them."""
