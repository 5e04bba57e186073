"""How the invented demo yard Vellin Ridge is made: one file a subject, whole centimetres throughout, seeded chance."""
