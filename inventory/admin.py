"""The back office pages of the rooms, in one place for Django to find."""

from inventory.bottling import admin as bottling
from inventory.stock import admin as stock

__all__ = ["bottling", "stock"]
