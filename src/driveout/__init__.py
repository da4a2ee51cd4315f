"""driveout: one used car from advert to sale, with one living outlook."""
