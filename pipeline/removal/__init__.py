"""What must not be kept leaves the store: people who withdrew, readings and files past their time."""
