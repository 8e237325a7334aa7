"""An invented viaduct across an invented tidal flat, and the generator of its log."""
