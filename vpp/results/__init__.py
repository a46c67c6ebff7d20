"""Solved conditions as tables and files: variables, data frames, writing."""
