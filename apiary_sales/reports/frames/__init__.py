"""The reports as pandas frames, one module a subject.

A frame holds whole numbers and text only: money in whole cents, honey in whole grams, jars in
pieces, all of the nullable dtype `Int64`, so that what is not known stays unknown. Percentages
and prices a pound are worked out where a frame is shown (`apiary_sales.reports.columns`).

pandas is imported when a frame is made, not when the service starts.
"""

from apiary_sales.reports.frames import bottling, sales, stock

__all__ = ["bottling", "sales", "stock"]
