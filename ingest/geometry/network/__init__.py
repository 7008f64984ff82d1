"""The sightline network: where every wheel of a vehicle points and stands, in plan."""
