"""The printer's bench: test strips and wedges, what a sheet needs, its tone curve, coating and washing."""
