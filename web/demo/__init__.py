"""The invented fleet of Tarnholt Plant Services: a seeded generator whose truth is known.

catalogue   makers' models with their firing specs and trims
names       invented names of places, customers and people
world       what a whole fleet shares: gas areas and their gas, analysers and their bias, technicians
plan        the planned customers, sites, plants, appliances, attendances and visits, as plain rows
places      invents customers down to appliances
schedule    invents attendances and visits
physics     pure: burners that drift, are read, adjusted and read again
readings    pure: what an analyser and a technician write down of it
story       what the demo plants, and where
truth       what was planted, written down
rows, bulk  the plan as table rows, and the fast way into the database
load        the demo and the scale fleet, from seed to database
accounts    the four logins and the device token

Every name, figure and document in it is invented.
"""
