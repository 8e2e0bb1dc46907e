"""What may be published: figures of small groups are withheld, and whatever would give them back."""

from pipeline.disclosure.protect import protect

__all__ = ["protect"]
