"""Pure mathematics: numbers in, numbers out. Nothing here knows files, programs or pages."""
