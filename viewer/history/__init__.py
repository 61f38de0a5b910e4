"""Snow on a roof by the weather: words, picture and files of `history`."""
