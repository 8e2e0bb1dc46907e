"""What each command of `evenbeam` takes, does and prints: a file a command."""
