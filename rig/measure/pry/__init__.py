"""Pry torque to failure: from load and angle of one motion to torque, kind and reasons."""
