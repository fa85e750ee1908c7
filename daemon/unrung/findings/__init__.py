"""Kinds of loss that a day's ledger shows, each a small module."""
