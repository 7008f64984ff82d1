"""What a person can adjust on a simulated vehicle, and a person who does it as advised."""
