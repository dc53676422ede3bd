"""From skill estimates to the stop times of any crew, and forecasts against stops that were made."""
