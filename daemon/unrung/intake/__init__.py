"""From a folder or an address to rows in the store, one export in one transaction.

``watch``    which files have settled      ``adapter``   the reader of a feed
``identity`` what makes a row that row     ``take_in``   one export, one transaction
``archive``  where its bytes go then       ``scan``      one look at one feed's folder
"""
