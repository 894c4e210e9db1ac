"""What a machine is made of. A section takes a web and gives a web and its own result; no section imports another."""
