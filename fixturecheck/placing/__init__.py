"""Where bodies stand when their faces are put on the faces that they are meant to seat on."""
