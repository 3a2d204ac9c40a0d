"""What was once wrong enough to reach a tank, what is right now, and the test that holds it: one row each."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]

# Was wrong; is right; file; test.
ROWS: tuple[tuple[str, str, str, str], ...] = (
    # Signing
    ("FAIL stood by the machine, watch was chosen, FAIL was signed and the reason gone", "the word and reason on the screen are signed",
     "recorder/test_signing.py", "test_the_word_chosen_is_the_word_signed_and_counted"),
    ("“Keep my verdict” and “Sign” were two acts", "one button, which says what it will do",
     "screens/test_screens.py", "test_what_was_chosen_is_what_is_signed_and_the_button_says_it_before"),
    ("one signed under the opinion of whoever spoke last", "nobody signs under another's word",
     "recorder/test_signing.py", "test_nobody_signs_under_another_s_opinion"),
    ("two opinions, and the button said nothing", "it says beside the button that two do not agree",
     "screens/test_screens.py", "test_nobody_signs_under_another_s_word_and_the_screen_says_where_two_do_not_agree"),
    ("two who signed at once left two signatures, 20 times of 20", "one signature, the other reads who signed what",
     "records/test_signed_at_once.py", "test_of_two_programs_that_sign_at_once_one_does_and_the_other_reads_who_and_what"),
    ("verdict or plan could move under the signer", "refused in words",
     "recorder/test_signing.py", "test_what_moved_since_the_signer_looked_is_refused_in_words"),
    ("old signatures had no word of their own", "each gets the one it stood under",
     "records/test_old_signatures.py", "test_an_old_signature_gets_the_word_and_reason_that_it_stood_under"),
    ("the chosen word on a desk and on a phone", "is the word signed",
     "browser/test_signing_browser.py", "test_the_chosen_word_is_the_word_signed"),
    # A scored verdict
    ("a word and no score", "100 at nothing, 67 and 33 at the limits, 0 at the worst",
     "verdict/test_score.py", "test_a_score_is_100_at_nothing_67_and_33_at_the_limits_and_0_at_the_worst"),
    ("word and score could disagree", "the worst rule's score, in the band of its word",
     "verdict/test_score.py", "test_word_and_score_of_a_test_never_disagree"),
    ("two passes could not be compared", "they have scores", "verdict/test_score.py", "test_two_passes_can_be_compared"),
    ("old verdicts had none", "recomputed from the kept reasons, or none",
     "records/test_old_scores.py", "test_old_verdicts_get_their_score_from_their_kept_reasons_or_none"),
    # What a pass needs
    ("one clean photo passed", "forty cases as a careful agronomist would judge",
     "verdict/test_forty.py", "test_the_verdict_is_what_a_careful_agronomist_would_give"),
    ("a pass from a look right after mixing", "30 min at least",
     "verdict/test_decide.py", "test_a_look_that_is_too_early_gives_no_pass"),
    ("turned over or poured before it had stood", "does not count",
     "verdict/test_decide.py", "test_what_is_done_before_the_jar_has_stood_does_not_count"),
    ("a pour through 50 mesh counted", "only one as fine as the sprayer's finest",
     "verdict/test_decide.py", "test_a_pour_counts_through_a_strainer_as_fine_as_the_finest_in_the_sprayer"),
    ("a pass did not say that nothing was strained", "“not strained”, and scores less",
     "verdict/test_decide.py", "test_a_pass_that_was_not_strained_says_so_and_scores_less"),
    ("no shop could ask for the pour", "a shop can, always", "verdict/test_decide.py", "test_a_shop_can_ask_for_the_pour_always"),
    ("lumps softened by an older pour", "only by a clean pour after them",
     "verdict/test_decide.py", "test_lumps_seen_after_the_pour_are_not_excused_by_it"),
    ("the word said nothing of time", "PASS to 30 min", "verdict/test_score.py", "test_the_word_is_said_with_its_age_and_its_score"),
    ("solids not yet turned over had a word", "no verdict, “invert it first” is next",
     "verdict/test_decide.py", "test_solids_seen_after_the_last_turning_over_must_be_turned_over_again"),
    ("a loose photo said PASS", "it says what it shows, and what a pass needs",
     "verdict/test_loose.py", "test_an_even_loose_photo_is_no_pass_and_says_what_one_needs"),
    # Sediment
    ("2 to 6 lb of powder, all fallen out, was under the limit", "that is about 1 % of the column",
     "plan/test_solids.py", "test_2_to_6_lb_of_powder_in_100_gal_all_fallen_out_is_about_one_percent_of_the_column"),
    ("a thin bed passed by the plain limit", "judged as a share of what could settle",
     "verdict/test_decide.py", "test_a_bed_is_judged_against_what_could_settle"),
    ("half of the powder down passed", "it does not", "verdict/test_decide.py", "test_no_powder_that_is_half_down_or_more_passes"),
    ("a photo too coarse for it said pass", "asks for the look from below",
     "verdict/test_decide.py", "test_a_look_from_below_answers_where_the_photo_cannot"),
    ("a bottom seen clean too early was passed over in silence", "it says why it does not count",
     "verdict/test_loose.py", "test_a_bottom_seen_clean_too_early_says_why_it_does_not_count"),
    # Standing time
    ("505 min where 46 and 6 were true", "22 to 46 min, and not known", "trend/test_standing_time.py", "test_the_cases_that_were_wrong"),
    ("too long after a stop", "never longer than the truth",
     "trend/test_standing_time.py", "test_no_stated_time_is_longer_than_the_truth"),
    ("far too short for fronts", "a third of the truth with all looks",
     "trend/test_standing_time.py", "test_with_all_looks_at_least_a_third_of_the_truth_is_stated"),
    ("0.30 of the truth for beds and creams", "a third, or not known",
     "trend/test_standing_time.py", "test_of_beds_and_creams_too_a_third_is_stated_or_it_is_said_not_to_be_known"),
    ("“from 1 looks”", "one look gives no figure",
     "trend/test_standing_time.py", "test_one_look_gives_no_figure_and_what_parted_at_once_none_either"),
    ("warm and cold tanks alike", "by the viscosity of water",
     "trend/test_standing_time.py", "test_a_warmer_tank_parts_sooner_and_a_colder_one_later_by_the_viscosity"),
    # The frame
    ("a floor 37 rows too high was carried: 22 % read as 9.5 %", "held against the finder's, the doubt covers the truth",
     "imaging_finder/test_held.py", "test_a_floor_dragged_too_high_is_told_and_the_true_bed_lies_within_the_doubt"),
    ("a FAIL became a WATCH by it", "no verdict until one tap settles it",
     "recorder/test_lines_doubted.py", "test_a_fail_does_not_become_a_watch_under_a_floor_dragged_too_high"),
    ("a plan of 935 mL, 535 in the photo, and nothing said", "told",
     "imaging/test_sizes.py", "test_the_planned_volume_is_held_against_the_photo_s"),
    # At the bench
    ("a tick by mistake stayed", "taken back, ticked again", "recorder/test_signing.py", "test_a_tick_by_mistake_is_taken_back_and_ticked_again"),
    ("ten seconds of undo", "one tap", "screens/test_mixing_screen.py", "test_a_tick_is_undone_with_one_tap"),
    ("what did not go in stood as gone in", "“did not go in”, and not counted",
     "recorder/test_signing.py", "test_what_did_not_go_in_is_said_later_and_is_not_counted_as_if_it_had"),
    ("a tick out of order was taken in silence", "asked first", "screens/test_mixing_screen.py", "test_a_tick_out_of_order_is_asked_first"),
    ("stirring came by the advised order", "after the last dry product as it really goes in",
     "plan/test_order_cases.py", "test_stirring_comes_after_the_last_dry_product_as_it_really_goes_in"),
    ("the card stirred elsewhere than the jar", "as it really went in",
     "recorder/test_tank.py", "test_the_card_stirs_after_the_last_dry_product_as_it_really_went_in"),
    ("a hand order broke the advised one in silence, all rows said “by hand”", "warned of, and only what was moved says so",
     "plan/test_order_cases.py", "test_only_what_was_moved_says_so_and_the_break_is_warned_of"),
    ("a photo refused for a blank name left its file", "no file",
     "recorder/test_signing.py", "test_a_refused_photo_leaves_no_file_behind"),
    ("a question from the inbox was lost at the next tap", "it stays",
     "browser/test_same_screen_browser.py", "test_a_question_opened_from_the_inbox_stays_open"),
    ("a card from the list was lost at the next tap", "it stays",
     "browser/test_same_screen_browser.py", "test_a_card_opened_from_the_list_stays_open"),
    ("mixing was finished twice; 300 s and -60 s side by side", "refused; a look has one age everywhere",
     "recorder/test_signing.py", "test_mixing_is_finished_once_and_every_look_has_one_age"),
    # Order of addition
    ("bags after salts, dry micronutrients last, the turf variant's helpers third", "where their sources have them",
     "plan/test_order_cases.py", "test_what_was_in_the_wrong_place_is_in_the_right_one"),
    ("a bag after salts in some variant", "before every salt, conditioner and oil",
     "plan/test_order_cases.py", "test_a_bag_goes_in_before_every_salt_conditioner_and_oil"),
    ("ties by typing order", "never", "plan/test_order_cases.py", "test_how_it_was_typed_never_decides"),
    ("ties without a reason", "the reason is said", "plan/test_order_cases.py", "test_a_tie_says_what_broke_it"),
    ("live biologicals by their powder", "their label must say",
     "plan/test_order_cases.py", "test_a_live_biological_has_no_place_but_its_label_s"),
    ("two memory aids without a published page were offered", "gone",
     "plan/test_order_cases.py", "test_memory_aids_without_a_published_page_are_not_offered"),
    ("an old record that names one", "falls to the default and says so",
     "plan/test_order_cases.py", "test_an_old_record_s_order_that_is_not_offered_falls_to_the_default_and_says_so"),
    # Cautions
    ("the curdling pair raised nothing", "by the names alone",
     "plan/test_caution_cases.py", "test_the_curdling_sample_s_own_pair_raises_its_caution_by_the_names_alone"),
    ("lime sulfur with acid and others were silent", "each speaks", "plan/test_caution_cases.py", "test_what_was_silent_speaks"),
    ("nothing known was silence", "“cautions not checked for”, once, with names",
     "plan/test_caution_cases.py", "test_nothing_known_is_said_once_for_all_and_names_each"),
    ("“none” was a conditioner", "it is none", "plan/test_water_hardness.py", "test_no_conditioner_is_no_conditioner_however_it_is_written"),
    ("ammonium sulfate as conditioner in hard water rang", "silent",
     "plan/test_dropout.py", "test_ammonium_sulfate_as_conditioner_in_hard_water_raises_nothing"),
    ("chelated iron rang", "silent",
     "plan/test_dropout.py", "test_chelated_iron_with_phosphate_in_hard_water_raises_nothing_of_iron_and_plain_iron_does"),
    ("1.2 mL over a quart rang", "no overflow", "plan/test_recipe.py", "test_a_milliliter_over_a_quart_is_no_overflow"),
    ("other false alarms", "silent", "plan/test_caution_cases.py", "test_what_is_no_trouble_is_silent"),
    ("struvite 27 for 196, FePO4 140 for 1,200", "within 15 % of PHREEQC",
     "plan/test_phreeqc.py", "test_how_far_a_real_mixture_is_over_its_limit_agrees_within_15_percent"),
    ("Epsom with MAP 0.84 for 3.2", "told",
     "plan/test_dropout.py", "test_epsom_salt_with_monoammonium_phosphate_is_told_though_the_label_does_not_part_the_nitrogen"),
    ("“3e+15 times”", "words", "plan/test_dropout.py", "test_words_grow_with_the_ratio"),
    ("the mixture's own pH could not be noted", "noted and used", "plan/test_dropout.py", "test_the_mixture_s_own_ph_is_used_before_the_water_s"),
    # Tank card
    ("an overruled FAIL stood nowhere", "at the head, and its life is shorter",
     "plan/test_tankcard.py", "test_the_head_says_what_a_crew_must_not_miss_and_its_life_is_shorter_then"),
    ("what next followed the machine", "follows the signed word",
     "screens/test_tank_card_screen.py", "test_what_next_follows_the_signed_word"),
    ("temperature stood nowhere", "on the water line, and another one lapses it",
     "plan/test_tankcard.py", "test_the_temperature_stands_on_the_water_line_and_another_one_lapses_it"),
    ("helpers lapsed it by more alone", "by less too",
     "plan/test_tankcard.py", "test_what_helps_the_others_lapses_it_by_less_as_well_as_by_more"),
    ("the PDF had the whole tank", "the part tank on the screen",
     "screens/test_tank_card_screen.py", "test_the_part_tank_on_the_screen_is_what_is_printed"),
    ("36.7 fl oz", "2 pt 4.7 fl oz", "plan/test_tankcard.py", "test_amounts_stand_in_measures_that_a_crew_has"),
    ("a lapsed card printed amounts", "none", "exchange/test_tankcard_page.py", "test_a_lapsed_card_says_so_before_all_else_and_prints_no_amounts"),
    ("a lapsed card on the screen", "none, whatever is typed",
     "screens/test_tank_card_screen.py", "test_a_lapsed_card_prints_no_amounts_whatever_is_typed"),
    # Documents
    ("the README's second command ended red", "CI calls the same one",
     "house/test_documents.py", "test_ci_calls_the_readme_s_own_test_command"),
)  # fmt: skip


@cache
def _named(file: str) -> frozenset[str]:
    tree = ast.parse((TESTS / file).read_text("utf-8"))
    return frozenset(n.name for n in tree.body if isinstance(n, ast.FunctionDef))


@pytest.mark.parametrize(("wrong", "right", "file", "test"), ROWS, ids=[r[3] for r in ROWS])
def test_each_thing_put_right_has_its_test(wrong: str, right: str, file: str, test: str) -> None:
    assert wrong
    assert right
    assert test in _named(file), f"{file} has no {test}, which holds that {wrong!r} is {right!r} now"
