INSERT INTO runs (
    id, rig, rig_run, stream, run_seq, first_blow_utc_ns, setup, contacts, tool, bolt, calibration,
    rate_hz, timing, zero_kN, zero_shift_kN, noise_kN, first_blow_s, last_blow_s, drive_time_s,
    blows, blow_rate_hz, ringing_kN, peak_kN, peak_time_s, peak_is_lower_bound, level_kN, held_kN,
    held_Nm, peak_Nm, plateau_kN, plateau_se_kN, plateau_Nm, time_constant_s, time_constant_se_s,
    spikes, missing, clipped, result, simulated, trial, step, attempt
) VALUES (
    :id, :rig, :rig_run, :stream, :run_seq, :first_blow_utc_ns, :setup, :contacts, :tool, :bolt, :calibration,
    :rate_hz, :timing, :zero_kN, :zero_shift_kN, :noise_kN, :first_blow_s, :last_blow_s, :drive_time_s,
    :blows, :blow_rate_hz, :ringing_kN, :peak_kN, :peak_time_s, :peak_is_lower_bound, :level_kN, :held_kN,
    :held_Nm, :peak_Nm, :plateau_kN, :plateau_se_kN, :plateau_Nm, :time_constant_s, :time_constant_se_s,
    :spikes, :missing, :clipped, :result,
    (SELECT simulated FROM identities WHERE stream = :stream ORDER BY id DESC LIMIT 1),
    :trial, :step, :attempt
)
