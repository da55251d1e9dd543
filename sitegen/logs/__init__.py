"""Run logs: channels over time, from a file to bins of a second and the sums that exposure needs."""
