"""What a person fills in on the pages of the register, complete and right; tests change a field."""

CLIENT = {"name": "Larch Lets", "kind": "let", "reference": "", "contact_name": "", "email": "", "phone": ""}
SITE = {"name": "Heron Cottage", "latitude": "54.123456", "longitude": "-2.5"}
SPA = {
    "name": "Terrace tub",
    "shell": "acrylic",
    "setting": "outdoor",
    "volume_l": "1250",
    "volume_basis": "plate",
    "sanitiser": "chlorine",
    "feeder": "none",
    "set_temperature_c": "38",
}
