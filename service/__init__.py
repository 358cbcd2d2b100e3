"""The work: water chemistry, sites, visits, stock, rounds and the API."""
