"""The SQLite store: the only package that imports sqlite_utils.

``open``       opening, checks, transactions        ``schema``    tables and migrations
``sources``    exports, rejected rows, spans        ``movements`` rows in, rows out
``days``       what is dirty, issued, the leaves    ``outbox``    mails and who has them
"""
