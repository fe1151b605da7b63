"""Claims about the virtual rig."""
