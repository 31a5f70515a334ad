"""What is being measured: maps, conductors, the network, the load and the limits."""
