"""Rounds: who drives where on which day."""
