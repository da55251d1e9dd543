"""Run logs: channels over time, taken in pieces, to bins of a second and the sums that exposure needs."""
