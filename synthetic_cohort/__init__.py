"""The demo: an invented programme of many sites, with the truth it was made from written beside it.

`generate.generate(folder, readings=60_000, …)` or `python -m synthetic_cohort FOLDER`. Nothing here is about a
real person, place or analyser.
"""
