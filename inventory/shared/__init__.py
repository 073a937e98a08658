"""What every app of the service uses."""
