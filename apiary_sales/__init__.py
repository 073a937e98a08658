"""The service of a honey house: its Django project, and selling."""

# The one place that names the version: packaging, Settings and `manage.py --version` read it here.
__version__ = "0.11.0"
