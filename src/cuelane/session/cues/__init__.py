"""What a coach says, one idea to a module; :mod:`cuelane.session.offers` asks them."""
