"""What has changed, told to programs: a feed that they read, and webhooks that tell them."""
