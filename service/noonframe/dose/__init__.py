"""From irradiance to exposures, slots and moves."""
