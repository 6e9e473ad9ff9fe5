"""trayopt: a constraint solver for optimal tray and stack assignment."""
