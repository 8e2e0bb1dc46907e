"""What a body is made of: fat, water, bone and muscle from age, sex, BMI and a person's own deviation."""

from __future__ import annotations

import numpy as np

FAT_SHARE_OF_WEIGHT_CHANGE = 0.75  # one quarter of weight lost or gained is fat-free: common practice


def fat_percent_adult(bmi, age, is_female):
    """Percent body fat expected from BMI, age and sex, adults.

    Source   Gallagher et al., Am J Clin Nutr 2000;72:694-701, 4-compartment regression (equation from memory; it
             gives the paper's 18 table entries: tests/published/test_synthetic_people.py).
    """
    is_male = 1.0 - np.asarray(is_female, dtype=float)
    return 64.5 - 848 / bmi + 0.079 * age - 16.4 * is_male + 0.05 * is_male * age + 39.0 * is_male / bmi


def fat_percent_child(bmi, age, is_female):
    """Percent body fat expected from BMI, age and sex, to 15 years.

    Source   Deurenberg, Weststrate & Seidell, Br J Nutr 1991;65:105-14 (abstract): 1.51 BMI - 0.70 age
             - 3.6 sex + 1.4, sex 1 for boys.
    """
    is_male = 1.0 - np.asarray(is_female, dtype=float)
    return 1.51 * bmi - 0.70 * age - 3.6 * is_male + 1.4


def fat_percent(bmi, age, is_female):
    """Percent body fat expected at any age: the child's form to 15, the adult's from 20, blended between.

    Source   the two functions above; the blend is the project's choice.
    """
    adult = np.clip((np.asarray(age, dtype=float) - 15) / 5, 0, 1)
    return adult * fat_percent_adult(bmi, age, is_female) + (1 - adult) * fat_percent_child(
        bmi, age, is_female
    )


def fat_mass_kg(untouched_weight_kg, weight_kg, fat_percent_untouched):
    """True fat mass: the expected share of the untouched weight, and three quarters of any change from it.

    Units    kg, percent; out kg, between 4 and 65 % of weight.
    Source   the quarter rule is common practice (about 25 % of weight change is fat-free); limits are the
             project's choice.
    """
    change = weight_kg - untouched_weight_kg
    fat = untouched_weight_kg * fat_percent_untouched / 100 + FAT_SHARE_OF_WEIGHT_CHANGE * change
    return np.clip(fat, 0.04 * weight_kg, 0.65 * weight_kg)


def basal_metabolic_rate(weight_kg, height_cm, age, is_female):
    """Basal metabolic rate, kcal a day.

    Source   18 and over: Mifflin & St Jeor, Am J Clin Nutr 1990;51:241-7. Under 18: Schofield, Hum Nutr Clin Nutr
             1985;39C Suppl 1:5-41, by weight, ages 3 to 10 and 10 to 18.
    """
    adult = 9.99 * weight_kg + 6.25 * height_cm - 4.92 * age + np.where(is_female, -161, 5)
    younger = np.where(is_female, 20.315 * weight_kg + 485.9, 22.706 * weight_kg + 504.3)
    older = np.where(is_female, 13.384 * weight_kg + 692.6, 17.686 * weight_kg + 658.2)
    return np.where(age >= 18, adult, np.where(age < 10, younger, older))


def visceral_fat_level(bmi, age, is_female):
    """An analyser's visceral fat level, 1 to 59, adults.

    Source   project's choice, no published rule: it rises with BMI over 20 and age over 20, faster in men.
    """
    men = 1 + 0.75 * (bmi - 20) + 0.15 * (age - 20)
    women = 1 + 0.55 * (bmi - 20) + 0.08 * (age - 20)
    return np.clip(np.floor(np.where(is_female, women, men) + 0.5), 1, 59)


def metabolic_age(fat_percent_printed, age, is_female):
    """An analyser's metabolic age, whole years, adults.

    Source   project's choice, no published rule: 0.8 year for each percentage point of fat over what the
             Gallagher regression expects at BMI 22, held between 12 and 90.
    """
    expected = fat_percent_adult(22.0, age, is_female)
    return np.clip(np.floor(age + 0.8 * (fat_percent_printed - expected) + 0.5), 12, 90)
