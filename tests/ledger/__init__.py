"""The ledger's parts, on small days made by hand."""
