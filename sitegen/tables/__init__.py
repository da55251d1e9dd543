"""Record tables: from files as people and instruments write them to readings in SI."""
