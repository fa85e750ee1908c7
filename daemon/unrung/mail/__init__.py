"""The mails: composed from a day's ledger, made into messages, kept in an outbox, handed over.

compose -> message -> outbox (pure) -> smtp (the only module here that touches the network, beside
the demo's ``sink``).
"""
