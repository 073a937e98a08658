"""The only code that writes honey and stock: one function a business act, one transaction each."""
