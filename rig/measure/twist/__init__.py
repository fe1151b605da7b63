"""An edge twisted to and fro in a slot of wood."""
