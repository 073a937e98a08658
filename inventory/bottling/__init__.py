"""Sizes, packaging parts, bottling runs, fill checks and labels; built on `inventory.stock`."""
