"""F0: frozen data and pure arithmetic of trunks, trays and plans; this room imports no other room of trayopt."""
