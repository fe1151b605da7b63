"""One drop of the weight: from its record to energy, rebound, second strike, and reasons."""
