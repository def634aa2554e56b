"""Sea trial: water, hull, electronics, faults and the engine that flies the mission core through them."""
