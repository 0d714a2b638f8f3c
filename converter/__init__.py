"""plexor: reads clinicians' reflex shorthand into checked, searchable FHIR Observations."""
