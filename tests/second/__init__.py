"""A second generator of whole programs, which shares nothing with the package nor with the simulator of the examples."""
