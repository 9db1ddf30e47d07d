"""What the light passes before the coat, and how the coat weighs it."""
