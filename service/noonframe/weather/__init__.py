"""Forecasts from open weather services: asked politely, kept, and never a reason to fail."""
