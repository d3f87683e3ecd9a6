"""From a sheet to the inputs of the model: what a measured must is taken to be."""

from mustwright.planning.kinetic_inputs import must_at_pitch
from mustwright.planning.must_setup import ground_of

MEASURED = "[measured]\nbrix = 23.2\nyan_mg_l = 140\nph = 3.4\n"


def test_a_must_only_measured_has_the_acid_of_its_population_not_that_of_honey_water():
    must = must_at_pitch(ground_of(MEASURED, "measured"))
    assert must.medium == "unknown"
    assert (must.ph, must.ph_range) == (3.4, None)
    assert must.buffer_meq_l_ph is None
    assert must.potassium_mg_l is None


def test_a_must_of_known_ingredients_has_the_acid_they_give():
    recipe = (
        '[must]\nvolume = "19 L"\ngravity = "1.100"\n'
        '[[must.ingredient]]\nkind = "clover honey"\namount = "solve"\n'
        '[[must.ingredient]]\nkind = "water"\namount = "fill"\n[measured]\nph = 3.7\n'
    )
    must = must_at_pitch(ground_of(recipe, "recipe"))
    assert must.medium == "honey"
    assert must.buffer_meq_l_ph is not None
    assert must.potassium_mg_l is not None
