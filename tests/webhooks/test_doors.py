"""Which acts of the house are told, and that nobody's name is."""

import json
from datetime import timedelta

import pytest

from apiary_sales.billing.services import invoices, payments, stand
from apiary_sales.customers.models import Customer
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.services import prices
from apiary_sales.webhooks.models import KINDS, HouseEvent
from inventory.bottling.services import holds, reversals
from tests import builders
