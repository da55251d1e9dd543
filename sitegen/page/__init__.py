"""What the content of a page is made of: its blocks, its words, its addresses, and what it may look at."""
