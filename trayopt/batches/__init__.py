"""F6: many jobs: manifest, engines, resume, summary."""
