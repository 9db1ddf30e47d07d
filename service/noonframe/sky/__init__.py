"""What the air does to sunlight on its way down."""
