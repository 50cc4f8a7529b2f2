"""Explaining, checking, notes that fit, practice and lessons."""
