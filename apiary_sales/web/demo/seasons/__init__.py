"""The seasons before the story of `story.toml`, and what went on beside it, told by the services.

`fixtures_demo/seasons*.toml` say what comes again by months and years; here it becomes acts, each
with its day of the calendar, and they are done in the order of their days.
"""
