"""Pure decisions about filling jars; none reads or writes rows.

Services, queries and forms share them; each takes plain values or rows that are loaded already.
"""
