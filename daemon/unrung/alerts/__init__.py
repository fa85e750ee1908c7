"""When a day is worth telling somebody about: pure rules over one day's ledger.

``judge_day`` says which limits were passed, ``next_state`` says which of them are news.
"""
