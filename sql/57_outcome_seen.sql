-- outcome_seen (temporary): counts and sums of the changes of those who were seen, weighted and not
-- grain   months × class
-- inputs  outcome_change, outcome_weight
-- keys    the grain is unique
-- rule    One pass over people; every figure of outcomes is taken from its sums. A struct a measure, as
--         weighted_moment_of makes it; weights are null for children. weight_beside_fat: the change of weight of those
--         whose fat mass is known at both readings. c, s and their products: season, and y the change of weight.
--         Everything in whole thousandths of its unit, so that sums are exact.
-- reruns  once a follow-up: each adds its own
create or replace temp table seen_now as
with
weighted as (
    select
        change.* exclude (season_cos, season_sin), weight, season_cos as c, season_sin as s, weight_change as y,
        case when not is_doubtful then weight_change end as weight_change_steady
    from outcome_change as change
    left join outcome_weight on outcome_weight.person = change.person and outcome_weight.months = change.months
),
figure as (
    select
        *,
        case when body_fat_percent_change is not null then weight end as weight_of_whole,  -- with a composition
        case when bmi_z_change is not null then weight end as weight_of_z,
        case when weight_change_steady is not null then weight end as weight_of_steady,
        case when weight_change_levelled is not null then weight end as weight_of_levelled
    from weighted
)
select
    months, class,
    weighted_moment_of(weight_change, weight) as weight_change,
    weighted_moment_of(weight_change_percent, weight) as weight_change_percent,
    weighted_moment_of(fat_mass_change, weight_of_whole) as fat_mass_change,
    weighted_moment_of(fat_free_mass_change, weight_of_whole) as fat_free_mass_change,
    weighted_moment_of(body_fat_percent_change, weight_of_whole) as body_fat_percent_change,
    weighted_moment_of(bmi_z_change, weight_of_z) as bmi_z_change,
    weighted_share_of(lost_5_percent, weight) as lost_5_percent,
    weighted_share_of(weight_way = -1, weight) as weight_fell,
    weighted_share_of(weight_way = 0, weight) as weight_same,
    weighted_share_of(weight_way = 1, weight) as weight_rose,
    weighted_share_of(fat_way = -1, weight_of_whole) as fat_fell,
    weighted_share_of(fat_way = 0, weight_of_whole) as fat_same,
    weighted_share_of(fat_way = 1, weight_of_whole) as fat_rose,
    weighted_moment_of(weight_change_steady, weight_of_steady) as weight_change_steady,
    weighted_moment_of(weight_change_levelled, weight_of_levelled) as weight_change_levelled,
    sum(y) filter (where fat_mass_change is not null) as weight_beside_fat,
    sum(c) as c, sum(s) as s, sum(c * c) as cc, sum(s * s) as ss, sum(c * s) as cs,
    sum(c::bigint * y) as cy, sum(s::bigint * y) as sy
from figure
group by months, class;

create temp table if not exists outcome_seen as from seen_now limit 0;
insert into outcome_seen from seen_now;
drop table seen_now;
