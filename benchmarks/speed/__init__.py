"""How fast: searching, adding, gathering, collecting a teaching set, and from cold."""
