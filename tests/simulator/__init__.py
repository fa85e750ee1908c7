"""An independent simulator of months of trade at a bar."""
