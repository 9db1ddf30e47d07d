"""Where the sun is: position, distance, rise, set and twilight."""
