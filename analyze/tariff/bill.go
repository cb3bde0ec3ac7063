package tariff

import "time"

// Bill is what a year of hours costs, in the tariff's currency. Charges and
// credits are both positive numbers:
//
//	Total = Fixed + Energy + NonBypassable + Demand + TopUp - Credit - Surplus
type Bill struct {
	Total         float64
	Fixed         float64
	Energy        float64 // kWh bought, at the import prices, with tiers
	NonBypassable float64
	Demand        float64
	TopUp         float64 // up to the minimum bill
	Credit        float64 // for kWh sold, as far as it was used or paid
	Surplus       float64 // paid for the net surplus when a settlement period closes
	Lost          float64 // credit that the settlement took away; no part of Total
	LostKWh       float64 // surplus of buckets that the bank does not carry on
	BankKWh       float64 // in the banks when the anniversary year closed

	ImportKWh, ExportKWh float64

	Months []MonthBill // in the order of the settlement year
}

// MonthBill is one calendar month of a bill. The months add up to the bill.
type MonthBill struct {
	Year  int
	Month time.Month
	Days  int

	Total, Fixed, Energy, NonBypassable, Demand, TopUp, Credit, Surplus float64

	ImportKWh, ExportKWh float64
}
