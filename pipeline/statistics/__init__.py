"""Pure statistics: counts in, small tables out. No files, no database, no clock, no state.

In the order of what rests on what:
counts          age_group, value_count, binomial_quantile
prevalence      proportion_interval, prevalence, clustered_proportion, reliability, trend
percentiles     percentile; age_spline, box_cox_cole_green, lms, lms_band, quantile_curve, print_step, curve_choice;
                curve_coverage, worm_plot, q_statistics
comparison      standard_population, direct_standardisation, indirect_standardisation, standardised_mean, funnel,
                overdispersion, heterogeneity, empirical_bayes, false_discovery; site_comparison puts them together
instruments     terminal_digit, age_heaping, entry_share; change_contrast, analyser_fault, fault_verdict, device_drift
"""
