"""Over the hours of a long run: levels at one point of the schedule, their slope, and the least it can show."""
