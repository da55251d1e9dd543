"""What happens in a long run unasked: channels that turn for the worse together, limits passed, starts from cold."""
