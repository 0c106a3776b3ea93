"""Invented names of the district of Aldermere: places, customers and people. None is real."""

PLACES = (
    "Skelby Moor", "Wrenfold", "Aldergate", "Quernbridge", "Pellowick", "Marrowdale", "Stennick", "Ashgarth",
    "Cawdle", "Fallowmere", "Oxlade Green", "Brindlow", "Lorne End", "Dunmarrow", "Kestle Green", "Saltersby",
    "Varrick", "Winnow Hill", "Eddlestow", "Tarn Bank", "Hollin Row", "Crakemoor", "Pikestead", "Lathwaite",
    "Ormsgill Cross", "Sallowby", "Thurlestang", "Nettlebeck", "Garrowfield", "Whinmoor Side",
)  # fmt: skip

STREETS = (
    "Quay Road", "Mill Lane", "Tannery Street", "Beck Side", "North Parade", "Station Road", "Kiln Street",
    "Chandler's Row", "Moor Lane", "Foundry Hill", "Priory Walk", "Market Place",
)  # fmt: skip

CUSTOMERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Aldermere Learning Trust", ("Primary School", "Academy", "Sixth Form", "Nursery School")),
    ("Aldermere District Council", ("Library", "Council Offices", "Community Hall", "Depot")),
    ("Ashgarth Leisure", ("Leisure Centre", "Swimming Pool", "Sports Hall")),
    ("Fallowmere Homes", ("Court", "House", "Gardens")),
    ("Stennick Care", ("Care Home", "Day Centre")),
    ("Quernbridge Hotels", ("Hotel", "Inn")),
    ("Pellowick Health Partnership", ("Health Centre", "Surgery", "Clinic")),
    ("Marrowdale Brewing", ("Brewery", "Maltings", "Bottling Hall")),
    ("Wrenfold Estates", ("House", "Chambers", "Exchange")),
    ("Brindlow Textiles", ("Mill", "Dye Works")),
    ("Varrick Cold Stores", ("Cold Store", "Transport Office")),
    ("Lorne End Parish Trust", ("Church Hall", "Parish Rooms")),
    ("Saltersby Harbour Trust", ("Harbour Office", "Fish Market")),
    ("Crakemoor Colleges", ("College", "Training Centre")),
    ("Thurlestang Theatres", ("Theatre", "Picture House")),
    ("Kestle Green Laundries", ("Laundry", "Linen Works")),
    ("Winnow Hill Bakeries", ("Bakery", "Flour Store")),
    ("Dunmarrow Housing Society", ("Court", "Terrace Hall")),
)  # fmt: skip

TECHNICIANS = (
    "Ines Hallam-Rook", "Rafe Munnery", "Bettany Sorrel", "Odhran Pyke", "Tamsin Garrowby", "Wilf Ackerley",
    "Nadia Thurle",
)  # fmt: skip
TRAINEE = "Perrin Oakshade"
CONTACTS = ("Maud Eskeridge", "Silas Wherry", "Corin Dunstall", "Agnes Pellow")
OFFICE = "Hester Vayle"
MANAGER = "Lowell Brandreth"
ACCESS_NOTES = (
    "Sign in at reception, ask for the caretaker.",
    "Key in the safe by the side door, the office has the code.",
    "Low beam on the basement stairs.",
    "Park in the yard; the gates close at 17:00.",
    "Ring the day before: the boiler room is alarmed.",
    "No signal in the plant room.",
)
