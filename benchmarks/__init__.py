"""How fast and how right: the kernel against libraries, the readings update against a sampler."""
