"""How coatings are compared, criteria decided and programs planned, on made-up allocations."""
