"""What honey is and how it is measured: pure functions on the standard library, pint and numpy.

Every function takes plain numbers, lists or numpy arrays alike: one number in, one Python number
(or string) out; an array in, an array of the same shape out. What lies outside the stated range,
is not a number, or is empty raises `ValueError` with the range and the unit.

Docstrings name the source of each figure, and say "from memory" where the text itself could not be
read. None of this makes an official measurement: weights that honey is sold by need a scale that
is legal for trade, and labels and packages answer to the local authority.
"""
