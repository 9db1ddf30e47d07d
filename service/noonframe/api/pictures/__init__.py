"""Pictures as SVG: plain line drawings that still read when printed in black."""
