-- change_cell: sums of the changes between one analyser and month and another, by class of people
-- grain   place × month × earlier place × earlier month × class
-- inputs  person_change; change_bound (lent: class, low, high, in thousandths); $measure, $period
-- keys    the grain is unique, none null
-- rule    A change outside its class's bounds is drawn in to there: one forgotten coat must not make an analyser look
--         wrong. Sums are whole numbers, exact in any order: of days, of thousandths (weeks, change) and millionths
--         (change_squared). No order: whoever adds them up sorts them.
-- reruns  a query: it changes nothing
with drawn_in as (
    select
        person_change.place, person_change.month, person_change.earlier_place, person_change.earlier_month,
        person_change.class, person_change.days, person_change.weeks,
        greatest(
            change_bound.low,
            least(change_bound.high, if($measure = 'weight', person_change.weight, person_change.body_fat_percent))
        )::bigint as change
    from person_change
    join change_bound on change_bound.class = person_change.class
    where person_change.period = $period
        and if($measure = 'weight', person_change.weight, person_change.body_fat_percent) is not null
)
select
    place, month, earlier_place, earlier_month, class::integer as class,
    count(*) as n,
    sum(days)::bigint as days,
    sum(weeks)::bigint as weeks,
    sum(change)::bigint as change,
    sum(change * change)::bigint as change_squared
from drawn_in
group by place, month, earlier_place, earlier_month, class;
