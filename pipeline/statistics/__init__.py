"""Pure statistics: counts in, small tables out. No files, no database, no clock, no state.

In the order of what rests on what:
counts          age_group, value_count, binomial_quantile
prevalence      proportion_interval, prevalence, clustered_proportion, reliability; published_proportion; trend,
                trend_table
percentiles     percentile, clustered_percentile
curves          age_spline, print_step, one_thread; box_cox_cole_green, lms; quantile_curve; curve_choice; site_part,
                lms_band, quantile_curve_band; fitted_curve; curve_coverage, worm_plot, q_statistics; curve_table,
                individual_position; who_reference, who_position
comparison      standard_population, direct_standardisation, indirect_standardisation, standardised_mean, funnel,
                overdispersion, heterogeneity, empirical_bayes, false_discovery; site_comparison, standardised_table
instruments     terminal_digit, entry_share; change_contrast, analyser_fault, fault_verdict, device_drift
"""
