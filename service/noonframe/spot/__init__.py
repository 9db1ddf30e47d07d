"""What reaches the frame where it lies: tilt, skyline, window."""
