"""Artificial UV in place of the sun: what a lamp sends, what reaches the sheet, warm-up and age."""
