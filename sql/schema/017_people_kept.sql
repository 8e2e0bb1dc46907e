-- How many people have a reading that counts, kept from run to run; null: to be counted.
alter table ledger.count_state add column people bigint;
