"""The bench and the field: phones, unattended looks, and who may come in on the shop's network."""
