"""The files that are issued: made as bytes, then put into place whole."""
