"""Assigns pit-crew athletes to positions, cars and race weekends, proves how good the lineup is, and explains it."""
